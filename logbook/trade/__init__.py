"""The trade's arithmetic, pure: what the numbers in the log mean to the people who run the machines."""
