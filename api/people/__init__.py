"""Who is asking, what they may see, how they sign in, and what they agreed to."""
