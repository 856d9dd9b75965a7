"""Changes of the tables, one file each, for SQLite and PostgreSQL."""
