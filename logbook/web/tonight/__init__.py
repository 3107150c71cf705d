"""Tonight: what is late, what falls due, who has it in hand, and what the supervisor can do about it."""
