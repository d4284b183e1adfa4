"""What is interchangeable as classes, and the pairs of classes that may go where."""
