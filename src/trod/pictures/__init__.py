"""What the files say: facts of pictures and clips, light, sequences, and the time a camera really watched."""
