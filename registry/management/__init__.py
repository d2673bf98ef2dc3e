"""The way in for Django's command line."""
