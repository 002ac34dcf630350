"""SVG drawings: areas of colour, pen strokes, levels."""
