"""Tests of what a site is deployed with: the compose file, the image, the probe.

No container engine runs here; what the files say is checked, not what they do.
"""
