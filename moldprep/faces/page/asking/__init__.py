"""What the page asks the maker, key by key of the job: questions, how answers are read, and their fields."""
