"""Rows and the database: tables, sessions, sealing, dealing, recording an answer once, the event ledger."""
