"""The invented club: its simulation, its scenario, its files and its way through the desk."""
