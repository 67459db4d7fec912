"""What is handed over: words, tables, the audit pack."""
