"""What the readings mean: areas, reduction, measures and the field round the valve."""
