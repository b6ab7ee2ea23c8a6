"""What start screen, README and every sheet say, word for word."""

from __future__ import annotations

CAUTIONS = (
    "This program has not been assessed, certified or cleared as a medical device anywhere. "
    "Where the law requires that for this use, do not use it for patients. "
    "It makes no diagnosis and no treatment decision. "
    "The treating, licensed clinician decides; local law, codes and guidance come first. "
    "Verify on the patient and by radiograph. "
    "The whole volume needs a qualified reader. "
    "Grey values are not Hounsfield units. "
    "Accuracy was checked on simulated scans, not on your scanner."
)
