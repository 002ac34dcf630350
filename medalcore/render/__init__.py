"""Pictures of a finished piece: studio light, metals, shadows."""
