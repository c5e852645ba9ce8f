"""What is done to an image before anything is found in it."""
