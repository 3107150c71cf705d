"""Every way in and out: one folder a channel. A channel turns what came into drafts, and answers; it decides nothing."""
