"""The shapes of requests and answers, and the strict reading of a request's body."""
