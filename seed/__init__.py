"""The demo shop: its policy, its stories, and a generator for its pictures. An invented shop in an invented town."""
