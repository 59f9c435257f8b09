"""What the files say: facts of pictures and clips, light, events, and the time a camera really watched."""
