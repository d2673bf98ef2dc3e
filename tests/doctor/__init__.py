"""The doctor finds what is planted, one fault at a time, and is quiet where all is well."""
