"""The arithmetic of the registry: measurements, numbers, distributions, checks.

Everything here is pure: numpy, scipy and pandas in, values out. No Django, no clock, no files, no
network, and no words meant for a page except the messages of the few errors a person may meet.
"""
