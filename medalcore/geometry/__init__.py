"""Geometry that knows no medal: outlines, meshes, solids and grids."""
