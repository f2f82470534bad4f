"""What is read: tables, words and machine-readable documents."""
