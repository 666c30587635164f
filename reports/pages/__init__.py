"""One module per page: what it asks and what it shows."""
