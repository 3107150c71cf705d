"""Every way in and out, one folder a channel: each turns what came into drafts, and answers. None decides anything."""
