"""What keeps a book from being opened or used, in words."""


class BookProblem(Exception):  # noqa: N818 - shown to the maker, named as they would
    """The book can't be opened or used; the message says why and what to do, in words."""
