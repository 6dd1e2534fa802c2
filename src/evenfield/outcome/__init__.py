"""What a course has changed, and whether the change is more than the error of measuring it."""
