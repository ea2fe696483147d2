"""Every small number that a comparison needs, with its reason. Millimetres and radians."""

import math

SAME_POINT = 0.01  # mm; a tenth of the finest thing a shop can measure, far above float noise
STRAIGHT = math.radians(0.01)  # a node that turns by less is no bend: no dial can show it
LARGEST_TURN = math.radians(175.0)  # beyond, the corner runs away to infinity (tan 90 deg)
CLEARANCE_ACCURACY = 0.05  # mm; how far a reported clearance may be from the exact one
LENGTH_NOISE = 1e-6  # mm; float64 rounding of lengths of some metres, with room to spare
ANGLE_NOISE = 1e-9  # rad; the same for angles
FARTHEST_POINT = 1.0e6  # mm; a point a kilometre from the car is a slip of the keyboard
