"""The paths of the secretary's room."""

from django.urls import path

from registry.web.secretary import (
    breeding,
    catalogue,
    clinics,
    health,
    home,
    mail,
    owners,
    pedigree,
    people,
    tokens,
)

app_name = "secretary"

urlpatterns = [
    path("", home.home, name="home"),
    path("health/", health.health, name="health"),
    path("mail/", mail.mail, name="mail"),
    path("mail/test/", mail.test, name="test-mail"),
    path("people/", people.everybody, name="people"),
    path("owners/", owners.owners, name="owners"),
    path("owners/<slug:owner_id>/", owners.owner, name="owner"),
    path("owners/<slug:owner_id>/correct/", owners.correct, name="correct-owner"),
    path("owners/<slug:owner_id>/erase/", owners.erase, name="erase-owner"),
    path("people/<int:user_id>/held/", owners.held_of_person, name="held-of-person"),
    path("people/<int:user_id>/erase/", owners.erase_person, name="erase-person"),
    path("people/new/", people.new, name="new-person"),
    path("people/<int:user_id>/", people.person, name="person"),
    path("people/<int:user_id>/role/", people.appoint, name="appoint"),
    path("people/<int:user_id>/link/", people.link, name="link"),
    path("people/<int:user_id>/second-steps/", people.steps, name="second-steps"),
    path("people/<int:user_id>/close/", people.close, name="close"),
    path("roles/<int:membership_id>/end/", people.end, name="end-role"),
    path("roles/<int:membership_id>/token/", tokens.new, name="new-token"),
    path("tokens/", tokens.all_tokens, name="tokens"),
    path("tokens/<int:token_id>/revoke/", tokens.revoke, name="revoke-token"),
    path("clinics/", clinics.all_clinics, name="clinics"),
    path("clinics/new/", clinics.new, name="new-clinic"),
    path("clinics/<str:clinic_id>/", clinics.change, name="clinic"),
    path("breeds/", catalogue.breeds, name="breeds"),
    path("breeds/new/", catalogue.new_breed, name="new-breed"),
    path("breeds/<slug:slug>/announcement/", catalogue.announcement, name="announcement"),
    path("breeds/<slug:slug>/window/", catalogue.window, name="window"),
    path("pedigree/", pedigree.send, name="pedigree"),
    path("pedigree/template.csv", pedigree.template, name="pedigree-template"),
    path("pedigree/<str:file_id>/", pedigree.look, name="pedigree-file"),
    path("pedigree/<str:file_id>/mend.csv", pedigree.to_mend, name="pedigree-to-mend"),
    path("pedigree/<str:file_id>/import/", pedigree.commit, name="pedigree-commit"),
    path("breeding/", breeding.breeding, name="breeding"),
    path("breeding/<slug:slug>/run/", breeding.compute, name="compute"),
    path("traits/", catalogue.traits, name="traits"),
    path("traits/new/", catalogue.new_trait, name="new-trait"),
    path("traits/<slug:slug>/", catalogue.trait, name="trait"),
]
