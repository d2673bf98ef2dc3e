"""What reads become when they are put into words and drawings."""
