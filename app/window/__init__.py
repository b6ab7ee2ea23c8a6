"""The main window and what frames it: start, menus, tools, pages."""
