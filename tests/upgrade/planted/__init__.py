"""An app whose migrations go wrong as the variable PLANTED says; last of all to be migrated."""
