"""The Register: fleet, sites, nights, people, policy; plates to print, training, and the erasing of a person."""
