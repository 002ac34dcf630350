"""From the elements to the finished piece: assembly, checks between elements, mass, building."""
