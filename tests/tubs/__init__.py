"""A simulated tub, its technician and an umpire, to try the dosing engine in closed loop.

Nothing of ours is imported here: the water is PHREEQC's, the answers are plain JSON.
"""
