"""What a registry must not lose: races, kills and repeated requests, against real databases."""
