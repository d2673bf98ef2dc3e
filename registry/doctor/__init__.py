"""The doctor: looks at settings, machine, database, records and people, and says in plain words
what is wrong and how to put it right.

It reads, and writes nothing but when slow checks were made. What is unsafe in the settings is
decided in ``registry.checks``; how findings are shown is settled by the command and the page.
"""
