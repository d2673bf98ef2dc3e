"""The only writers: one module a deed, called by pages, API, import and commands alike.

Every function is keyword-only and takes ``by``, the actor. Its steps keep one order: open the
transaction,
claim the row, check permission, check the facts, write, append the ledger entry, queue mail. What
it refuses
it refuses with an error of ``registry.desk.errors`` that says how to put it right.
"""
