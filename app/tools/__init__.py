"""What the mouse and the keys do on the pictures, one tool a file; `catalogue` lists them."""
