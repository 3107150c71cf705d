"""A machine's history: its nights, its duties by weeks, every entry, as known now or at any past moment; and exports.

Promises nobody's name, unless a leader opened one on purpose. Counts and judges by the domain alone.
"""
