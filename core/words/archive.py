"""Sentences about: sending to an archive and fetching from one."""

from __future__ import annotations

SENTENCES: dict[str, str] = {
    "archive-not-installed": (
        "The part that talks to archives is not installed - nothing was sent or fetched - install "
        "the program with '[archive]', or import the files by hand."
    ),
    "archive-address": (
        "{found} is no address of an archive - it would not be known whom to ask - write it as "
        "AET@HOST:PORT, with an AE title of 1 to 16 characters and a port from 1 to 65535."
    ),
    "archive-no-answer": (
        "{node} does not answer the DICOM echo - nothing was sent or fetched - check address, port "
        "and AE title, and that the archive knows the title {title}."
    ),
    "archive-certificate": (
        "The encrypted connection to {node} cannot be set up: {reason} - without it names would "
        "travel readable, so nothing was sent - check --ca, --cert and --key."
    ),
    "archive-nothing-to-send": (
        "The folder {path} holds no DICOM object of a sheet - there is nothing to send - write the "
        "sheet there first, with its archive objects."
    ),
    "archive-unsigned": (
        "{name} is not signed off - a draft in an archive is taken for a result - sign the plan "
        "off and write the sheet anew, or ask for unsigned objects to be sent."
    ),
    "archive-not-all-stored": (
        "{node} stored {done} of {total} objects; the first refusal was of {name} ({reason}) - the "
        "record in the archive is not complete - run the same command again: what is stored is "
        "not sent twice."
    ),
    "archive-stopped": (
        "Stopped: {node} holds {done} of {total} objects - the record in the archive is not "
        "complete - send again to go on where it stopped."
    ),
    "archive-search-wide": (
        "Neither a patient ID nor a study is named - the list would hold everybody of the archive "
        "- name a patient or a study."
    ),
    "archive-search-failed": (
        "{node} refused the search ({reason}) - no series can be listed - ask whoever runs the "
        "archive whether {title} may search there."
    ),
    "archive-fetch-failed": (
        "{node} did not hand over the series ({reason}) - nothing was opened - ask whoever runs "
        "the archive whether {title} may fetch from there, or export the series by hand."
    ),
    "archive-series-incomplete": (
        "{found} of {expected} slices of the series arrived - a gap would be measured through, so "
        "nothing was opened - fetch it again."
    ),
    "archive-move-port": (
        "C-MOVE needs a port of this computer to which the archive sends - none was named - give "
        "--listen PORT and have the archive told of it, or leave --move out."
    ),
    "archive-port-taken": (
        "Port {port} of this computer cannot be opened - the archive could send nothing back - "
        "choose another port."
    ),
}
"""Code → sentence."""
