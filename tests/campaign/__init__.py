"""Made-up misfortunes against the whole program: `python -m tests.campaign --minutes 10` (kinds/__init__.py tells
how to add one). Outside the ordinary run; tests/test_campaign.py only holds that it works.
"""
