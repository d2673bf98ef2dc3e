"""The JSON face of the registry: it owns no models and no rules, and never imports the web."""
