"""Windows that ask a person or set something, one a file; `catalogue` lists them for the menus."""
