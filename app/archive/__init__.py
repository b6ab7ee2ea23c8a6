"""Talks DICOM with an archive: sends a sheet's objects, lists and fetches series."""
