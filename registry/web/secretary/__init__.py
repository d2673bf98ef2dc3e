"""The secretary's face: people and their roles, clinics, breeds, traits, tokens, and the mail."""
