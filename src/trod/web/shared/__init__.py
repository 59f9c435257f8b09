"""What several page rooms need. A page room imports no other page room, but this."""
