"""What a practitioner does with the answers."""
