"""How people get in, and how they look after their own way in: the same pages for every role."""
