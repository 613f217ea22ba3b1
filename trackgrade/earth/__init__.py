"""The earth and the air: units, angles, geodesics, magnetic variation, atmosphere. Knows nothing of flights."""
