"""What a vehicle's number and its emissions label say, and nothing they do not say."""
