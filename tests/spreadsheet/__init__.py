"""The audit workbook opened by a spreadsheet program; run apart from the other tests."""
