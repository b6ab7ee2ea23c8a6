"""Every picture of the scan: how it is cut, painted and kept in step."""
