"""What each chapter of the book says, from the kit and its proofs."""
