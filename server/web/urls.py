"""The pages' addresses. Everything of a farm lies under the farm; server/web/doors.py decides who comes in."""

from allauth.account import views as account
from django.urls import include, path
from django.views.generic import RedirectView

from server.web.views import (
    alert,
    consents,
    count,
    farm,
    file,
    group,
    home,
    keys,
    levels,
    mail,
    monday,
    paper,
    people,
    phone,
    phones,
    region,
    rounds,
    seasons,
    settings,
    sign_in,
    skip,
    stations,
    temperatures,
    work,
    worth,
)

signing_in = [
    path("", account.request_login_code, name="account_request_login_code"),
    path("code/", account.confirm_login_code, name="account_confirm_login_code"),
    path("link/<str:key>/", sign_in.sign_in_link, name="sign_in_link"),
    path("out/", account.logout, name="account_logout"),
    path("switched-off/", account.account_inactive, name="account_inactive"),
    # allauth links to these two: there is one way in, and nobody signs up.
    path("with-code/", RedirectView.as_view(pattern_name="account_request_login_code"), name="account_login"),
    path("new/", account.signup, name="account_signup"),
]

farm_settings = [
    path("", settings.settings, name="settings"),
    path("stations/", stations.stations, name="stations"),
    path("stations/barn/", stations.add_barn, name="add_barn"),
    path("stations/add/", stations.add_station_here, name="add_station"),
    path("stations/<uuid:station_id>/siting/", stations.siting, name="siting"),
    path("people/", people.people, name="people"),
    path("people/<uuid:person_id>/end/", people.end_person_here, name="end_person"),
    path("phones/", phones.phones, name="phones"),
    path("phones/<uuid:token_id>/off/", phones.switch_off_phone, name="switch_off_phone"),
    path("levels/", levels.levels, name="levels"),
    path("seasons/", seasons.seasons, name="seasons"),
    path("seasons/<uuid:season_id>/close/", seasons.close_season_here, name="close_season"),
    path("agreements/", consents.consents, name="consents"),
    path("agreements/adviser/", consents.agree_adviser, name="agree_adviser"),
    path("agreements/region/", consents.agree_region, name="agree_region"),
    path("agreements/<uuid:consent_id>/withdraw/", consents.withdraw, name="withdraw"),
    path("keys/", keys.keys, name="keys"),
    path("keys/<uuid:token_id>/off/", keys.switch_off_key, name="switch_off_key"),
]

of_a_farm = [
    path("", farm.farm, name="farm"),
    path("count/", count.count, name="count"),
    path("paper/", paper.paper, name="paper"),
    path("file/", file.look_through, name="import"),
    path("file/<uuid:file_id>/", file.store_file, name="store_file"),
    path("file/imports/<uuid:import_id>/", file.progress, name="import_progress"),
    path("skip/", skip.skip, name="skip"),
    path("work/", work.work, name="work"),
    path("worth/", worth.worth, name="worth"),
    path("temperatures/", temperatures.temperatures, name="temperatures"),
    path("temperatures/file/", temperatures.temperatures_file, name="temperatures_file"),
    path("rounds/", rounds.rounds, name="rounds"),
    path("rounds/<uuid:round_id>/", rounds.round_shown, name="round"),
    path("rounds/<uuid:round_id>/end/", count.round_end, name="round_end"),
    path("rounds/<uuid:round_id>/readings/<uuid:reading_id>/", rounds.correct, name="correct"),
    path("matters/<uuid:alert_id>/", alert.alert, name="alert"),
    path("settings/", include(farm_settings)),
]

urlpatterns = [
    path("", home.home, name="home"),
    path("language/", home.language, name="set_language"),
    path("sign-in/", include(signing_in)),
    path("phone/", phone.phone, name="phone"),
    path("phone/leave/", phone.leave_phone, name="leave_phone"),
    path("monday/", monday.monday, name="monday"),
    path("farms/", home.farms, name="farms"),
    path("farms/<uuid:farm_id>/", include(of_a_farm)),
    path("regions/<uuid:region_id>/", region.region, name="region"),
    path("regions/<uuid:region_id>/temperatures/", temperatures.region_temperatures, name="region_temperatures"),
    path(
        "regions/<uuid:region_id>/temperatures/file/",
        temperatures.region_temperatures_file,
        name="region_temperatures_file",
    ),
    path("groups/<uuid:group_id>/", group.group, name="group"),
    path("mail/", mail.mails, name="mails"),
    path("mail/<str:name>/<int:number>/", mail.mail, name="mail"),
    path("mail/<str:name>/<int:number>/html/", mail.mail_html, name="mail_html"),
]
