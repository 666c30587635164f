"""The spring round: who is due, who can go, and which day each is driven to."""
