"""The certificate on paper: its page, its PDF and its QR code.

Everything printed arrives already worded and translated. What is here decides
how it is set in type, never what is said. No database, no request, no clock.
"""
