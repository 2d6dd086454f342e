"""The faces of a plan: board, stall calendar, look-ahead, workbook, several jobs."""
