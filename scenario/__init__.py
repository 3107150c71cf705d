"""An invented ferry company's floor machines, their nights, and what ought to be noticed about them.

What makes up the nights and their truth never imports the program that it is held against: what is true is known from
having been made up. Only what plays or measures them (`week`) runs the program.
"""
