"""What a piece is made of; each kind turns its own table into parts and sees no other."""
