"""What is said about medications and solutions: amounts, dates, names, and what is asked."""
