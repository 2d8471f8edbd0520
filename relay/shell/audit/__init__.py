"""The commands `offing audit` and `offing advise`: what they are given, what they say."""
