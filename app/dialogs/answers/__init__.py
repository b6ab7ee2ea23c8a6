"""What only a person can say."""
