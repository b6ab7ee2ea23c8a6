"""What stands around the pictures, one panel a file; `catalogue` says which stands where.

Every panel is a `base.Panel`, made by ``Name(session, desk, parent)``:

=====================  ===========================  ============================================
place                  class                        shows
=====================  ===========================  ============================================
``patient line``       `patient_line.PatientLine`   who, which tooth, side, state of the sheet
``log``                `log.Log`                    what is open, and what was done
``fixture``            `fixture.FixturePanel`       the chosen fixture in number boxes
``ledger``             `ledger.LedgerPanel`         the live ledger
``ridge profile``      `ridge_profile.RidgeProfile` widths along the arch (folded)
``remaining bone``     `remaining_bone.RemainingBone` bone left, by depth and direction (folded)
``scan checks``        `scan_checks.ScanChecks`     what limits measuring on this scan (folded)
``my sizes``           `my_sizes.MySizes`           the user's list of sizes (folded)
=====================  ===========================  ============================================

Questions and settings are in `app.dialogs`; `app.dialogs.catalogue.DIALOGS` lists them with
their menus.
"""
