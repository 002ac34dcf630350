"""What a relief is made from: model files, depth pictures, drawings, vertex groups."""
