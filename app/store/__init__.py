"""What is kept: tables, queries and backup. Functions take a session, flush, and never commit."""
