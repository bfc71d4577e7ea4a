"""What is kept: SQLAlchemy models, the unit of work, and every query. SQLite and PostgreSQL behave alike."""
