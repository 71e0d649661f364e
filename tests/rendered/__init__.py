"""What is written into the documents from the program itself, and compared with it."""
