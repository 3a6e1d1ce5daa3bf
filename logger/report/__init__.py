"""Charts, tables and the document. It formats what it is given and computes nothing."""
