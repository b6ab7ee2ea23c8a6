"""Measures many cases into one table, on this machine or on a Dask cluster that is there."""
