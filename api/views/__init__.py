"""The views, a module a subject: parse, call the desk or a query, answer."""
