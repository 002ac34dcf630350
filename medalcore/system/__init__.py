"""Files, consoles and signals as systems really have them."""
