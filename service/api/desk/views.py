"""/desk: pages for people. Each module declares its pages; here they come together."""

from service.api.desk import books, machines, orders, questions, sign_in, today
from service.api.desk.door import blueprint

__all__ = ["blueprint", "books", "machines", "orders", "questions", "sign_in", "today"]
