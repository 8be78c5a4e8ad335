"""The only place that knows a database: tables, statements, migrations. Rows become dataclasses here."""
