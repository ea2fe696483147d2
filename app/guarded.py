"""Keep exceptions inside Python overrides of Qt virtuals from ending the process."""

import functools
import sys
from collections.abc import Callable
from typing import Any


def guarded(default: Any = None) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Hand an exception to sys.excepthook and return default; Qt would crash or swallow it."""

    def decorate(function: Callable[..., Any]) -> Callable[..., Any]:
        @functools.wraps(function)
        def guard(*args: Any, **kwargs: Any) -> Any:
            try:
                return function(*args, **kwargs)
            except Exception:
                sys.excepthook(*sys.exc_info())
                return default

        return guard

    return decorate
