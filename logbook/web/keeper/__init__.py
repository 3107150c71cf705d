"""The page of a site's own keeper: keys, segments in the drawer, deliveries, and which machines stand ready tonight.

Never shows a worker's name or role, nor what anybody missed: it says how things stand now, and no more.
"""
