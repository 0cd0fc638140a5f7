"""Late: types of parameters that are imported only when a tool is used, for their weight."""

__all__ = ["late_types"]


def late_types() -> dict[str, type]:
    """Return by name the types that annotations of this chapter leave to the last moment."""
    from toolbox.stocking.proposal import StockingProposal

    return {"StockingProposal": StockingProposal}
