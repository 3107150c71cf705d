"""The cleaner's phone: one machine's page, opened by the code on it, fed by one thumb in five seconds.

Promises that whatever a tap says becomes the entries it names, once, however often it arrives. Decides nothing about
duties: what is owed is the domain's word.
"""
