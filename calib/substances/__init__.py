"""What substances are made of and how much heat they hold."""
