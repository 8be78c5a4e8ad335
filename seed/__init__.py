"""The demo shop: an invented shop in an invented town, its words, its year of stories, a generator for its pictures."""
