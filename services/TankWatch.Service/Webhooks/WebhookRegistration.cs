using TankWatch.Service.Configuration;

namespace TankWatch.Service.Webhooks;

internal static class WebhookRegistration
{
    public static IServiceCollection AddWebhooks(this IServiceCollection services, WebhookOptions options) => services
        .AddSingleton(options).AddSingleton<WebhookDesk>().AddSingleton<WebhookMessages>().AddSingleton<WebhookPlaces>()
        .AddSingleton<WebhookCaller>()
        .AddHostedService<WebhookSender>();
}
