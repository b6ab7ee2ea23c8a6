"""From plan and scan to the ledger: the rows, the tables, and what they rest on."""
