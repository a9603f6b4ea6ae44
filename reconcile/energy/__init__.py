"""What each step cost the body: published models, one a file, and how they are joined."""
