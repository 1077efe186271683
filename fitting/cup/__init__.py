"""What a cup is: what is known of it beforehand, its walls, its circumstances."""
