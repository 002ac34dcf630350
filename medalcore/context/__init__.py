"""What every element may look at: the ground it stands on, tolerance, materials, kept stages."""
